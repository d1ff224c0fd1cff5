"""Which candidates work at which rig in which slot of a session, on what. Pure: values in, values out."""
