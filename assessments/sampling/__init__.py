"""PURE: which decisions a verifier looks at again, why, and what that can be expected to find."""
