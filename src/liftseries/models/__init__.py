"""Tables in, tidy estimates out; a module a question. Opens no file and knows no plan."""
