"""One file a subject: each exposes `router`, and `nav` if it stands in the menu. They are found by themselves."""
