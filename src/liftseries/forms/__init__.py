"""The blank forms that the schemas give: dictionary, entry workbook, data package, starting folder."""
