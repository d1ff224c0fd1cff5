"""Marking, pure: frozen inputs in, a proposal with its working out. It proposes; an assessor decides."""
