"""The `field` fidelity: outlines and meshes, and the Helmholtz finite elements solved on them."""
