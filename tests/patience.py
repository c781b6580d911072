"""How long a test waits for what must come: until it is there, and no longer.

Nothing in the tests waits for a fixed time (`test_house` looks): such a wait is too long on a quiet machine, too short
on a busy one, and says nothing of what it waits for.
"""

#: Seconds after which what has not come will not come, also on a machine that has other work.
DEADLINE = 120.0
