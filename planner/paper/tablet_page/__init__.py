"""A plan, or the issued orders, as one self-contained page for the tablet: no network, printable, read aloud.

`page` puts a plan together, or the issued orders, each order with its drawing; `templates` fills the .html
files in, with style, script and print margins.
page.css and page.js are carried inside the page, and its content policy allows nothing else.
"""
