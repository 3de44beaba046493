"""What is told sample by sample, in the order of ``gather``: arrays in, as many values out."""
