"""The book that goes home with the car: one PDF for its owner and for the next technician."""

from cabinwright.handover.book.given import Given
from cabinwright.handover.book.pdf import book_pdf, summary_pdf

__all__ = ["Given", "book_pdf", "summary_pdf"]
