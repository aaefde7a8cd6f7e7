"""Tables of states drawn as text in open Mermaid syntax."""

from collections.abc import Iterable


def state_picture(first: str, arrows: Iterable[tuple[str, str, str]]) -> str:
    """A picture of states in which each arrow bears all its actions, in the order of the table.

    Args:
        first: the state in which everything begins.
        arrows: state, state after it, and action; those that stay where they are, are left out.
    """
    found: dict[tuple[str, str], list[str]] = {}
    for state, to, action in arrows:
        if state != to:
            found.setdefault((state, to), []).append(action)
    lines = ["stateDiagram-v2", f"  [*] --> {_id(first)}"]
    lines += [f"  {_id(state)} --> {_id(to)}: {', '.join(actions)}" for (state, to), actions in found.items()]
    return "\n".join(lines)


def _id(state: str) -> str:
    return state.replace(" ", "_")
