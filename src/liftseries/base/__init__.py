"""What every room may use: errors in a user's words, files written whole, where the shipped folders lie."""
