"""What a person does on the page: its forms and its buttons."""
