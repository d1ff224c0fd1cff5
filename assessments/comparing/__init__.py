"""PURE: decisions side by side, of assessors on the same attempts and of whole groups; time and work."""
