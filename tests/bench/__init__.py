"""
Times of the check beside two references, printed as Markdown; nothing is asserted about time.

    python -m tests.bench 10000 100000
"""
