"""A plan as one self-contained page for the tablet at the bench: no network, printable, readable aloud.

`page` puts it together; `order_article` one order with its drawing; `templates` fills the .html files in;
page.css and page.js are carried inside the page, and its content policy allows nothing else.
"""
