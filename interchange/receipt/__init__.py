"""The receipt of a conversion: what was carried, changed, left behind and added, computed from what was read back."""

from interchange.receipt.build import build_receipt
from interchange.receipt.content import CAUTIONS, Added, Carried, Document, Entry, Receipt
from interchange.receipt.text import receipt_text, receipt_verdict

__all__ = [
    "CAUTIONS",
    "Added",
    "Carried",
    "Document",
    "Entry",
    "Receipt",
    "build_receipt",
    "receipt_text",
    "receipt_verdict",
]
