"""Pages to look at and listen to: the sheet, the listening page, the library page."""
