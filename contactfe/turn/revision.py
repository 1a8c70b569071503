"""The number that says which answers this version gives.

Raise it by one in every change after which the same case may give other numbers: stored results and flexibilities
of an older revision are then left alone and solved again.
"""

SOLVER_REVISION = 5
