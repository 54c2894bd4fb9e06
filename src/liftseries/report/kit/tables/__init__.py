"""How an estimate becomes a cell, and lists of estimates."""
