"""What to do when something fails: a page for each failure, as Markdown in this folder.

Read it in the repository, by ``manage.py runbook NAME``, or, as staff, at ``/runbook/``.
"""
