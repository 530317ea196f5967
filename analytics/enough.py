"""When a group of species has a run of its own. Rules of ours, no source."""

#: Returns that tell of the group, blanks among them.
LEAST_RETURNS = 200
#: Of so many anglers.
LEAST_ANGLERS = 5
#: So many of them with something of it.
LEAST_CAUGHT = 50
#: The groups of the most weight.
MOST_GROUPS = 6
