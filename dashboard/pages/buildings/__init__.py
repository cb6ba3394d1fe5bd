"""The buildings of a workspace, and the way to a new one."""
