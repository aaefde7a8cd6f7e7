"""From runs, ends, positions and joints, through the rules, to requirement lines with their reasons."""
