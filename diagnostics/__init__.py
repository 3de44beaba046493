"""Judges refrigerant charge and liquid flow of a VRF heat-recovery system from logged data.

Arrays in, evidence out; knows nothing of databases, web servers or clocks.
"""
