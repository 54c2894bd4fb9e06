"""The correction workbook: refused rows out to those who typed them, and back."""
