"""The first hour of a new workshop: a checklist, a form for each step, and the logins."""
