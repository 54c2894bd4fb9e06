"""What bone was gained."""
