"""Pictures, panels and papers; the only room that knows matplotlib, ipywidgets and Jinja."""
