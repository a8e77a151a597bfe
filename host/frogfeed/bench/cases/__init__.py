"""Every fault that the bench brings about, what must hold then, and how it is seen."""
