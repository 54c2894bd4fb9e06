"""The report as files: HTML, PDF, tables as CSV and DOCX."""
