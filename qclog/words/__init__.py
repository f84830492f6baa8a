"""Words and numbers as people read them, the same at the terminal, on the page and on paper."""
