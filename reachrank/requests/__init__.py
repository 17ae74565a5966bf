"""Requests for help: one caller's place, a stack of applications, the choice of sites."""
