"""Pages as a browser reads them: the white space by which a template is laid out doesn't show."""

from __future__ import annotations

import re

# Elements at whose edges a browser drops white space.
BLOCKS = (
    "article|aside|body|caption|dd|details|div|dl|dt|fieldset|figcaption|figure|footer|form|h[1-6]|head|header"
    "|legend|li|main|meta|nav|ol|option|p|section|summary|table|tbody|td|tfoot|th|thead|tr|ul"
)
EDGE = re.compile(rf" ?(</?(?:{BLOCKS})\b[^>]*>) ?")


def flat(text: str) -> str:
    """The HTML `text` with one space wherever white space shows, and with none where it doesn't: at the
    edges of blocks and before the end of a tag. Not for `<pre>` and `<textarea>`."""
    return EDGE.sub(r"\1", re.sub(r" (/?>)", r"\1", re.sub(r"\s+", " ", text)))


def without_links(html: str) -> str:
    """The same with the words of links in place of the links."""
    return re.sub(r"</?a\b[^>]*>", "", html)
