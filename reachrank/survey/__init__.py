"""Sections measured in the field, by level and rod or total station."""

from reachrank.survey.edges import BankEdges, bank_edges

__all__ = ["BankEdges", "bank_edges"]
