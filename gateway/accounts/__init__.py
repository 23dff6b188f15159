"""Who may enter the console, and what each may do."""
