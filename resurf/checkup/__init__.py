"""What `manage.py doctor` looks at: each check is a function that returns findings, one plain sentence each."""
