"""Tables of a spreadsheet as rows of texts: CSV of any country, and .xlsx."""
