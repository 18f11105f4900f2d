"""Who gets in: passwords, tries at them, and forms that nobody else can send in a person's name."""
