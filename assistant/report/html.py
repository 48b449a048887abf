"""A document as one self-contained HTML file: no script, no external resources, printable.

Importing this module loads jinja2 and matplotlib. The same document gives the same bytes.
"""

from base64 import b64encode

from jinja2 import Environment, PackageLoader, StrictUndefined

from assistant.report.document_model import Block, Document, Picture
from assistant.report.plots import drawing, svg


def html(document: Document) -> bytes:
    """Return a document as HTML, UTF-8."""
    environment = Environment(
        loader=PackageLoader("assistant.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=False,
        keep_trailing_newline=True,
    )
    template = environment.get_template("document.html")
    with drawing():
        text = template.render(document=document, kind_of=_kind_of, picture=_picture)
    return text.encode()


def _kind_of(block: Block) -> str:
    return type(block).__name__


def _picture(picture: Picture) -> str:
    return b64encode(svg(picture.draw()).encode()).decode()
