"""What a file holds, cell by cell with its place: CSV, workbooks, Parquet; where its header is."""
