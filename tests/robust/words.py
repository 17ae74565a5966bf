"""Texts from data that mean something to a terminal, a spreadsheet, a database, a plot, a page."""

from __future__ import annotations

WORDS: tuple[str, ...] = (
    "Mill \x1b[31mRed\x1b[0m Run", "\x1b]0;owned\x07Run", "\x1b[2J\x1b[H",
    "Run\r\nreachrank: error: fake",
    "[bold red]Run[/bold red]", "[/]", "[link=file:///etc/passwd]x[/link]", ":skull:",
    "=cmd|' /C calc'!A0", "+1+1", "-2+3", "@SUM(A1)", "\t=1+1", "=HYPERLINK(\"http://a\")",
    "Mill $x_{ Run$", "$\\frac{1}{0}$", "\\input{/etc/passwd}", "100% $", "{0}", "{name}", "%s%n%d",
    "'; DROP TABLE reaches; --", "\"; DROP TABLE reaches; --", "a' OR '1'='1", "x|layername=y",
    "a:b",
    "<script>alert(1)</script>", "</text><svg onload=alert(1)>", "&lt;&amp;", "<b>Run</b>", "]]>",
    "../../../etc/passwd", "..\\..\\windows", "C:\\a\\b", "/dev/null", "CON", "a/b/c", "name.gpkg",
    "\u202eevil\u202c", "\u200bzero\u200dwidth", "e\u0301\u0327" * 10, "\ufeffRun", "\ufffe",
    "小川", "Ручей", "نهر", "🏞️" * 5, "\U0010ffff", "ß" * 300, "a" * 70_000, " ", "\x7f\x80\x9b31m",
    "nan", "NULL", "None", "inf", "-9999", "true", "0", "reach_id", "S0001-R0001", "NaT",
)  # fmt: skip
