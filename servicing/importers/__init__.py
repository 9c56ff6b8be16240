"""Lists of past installations: read, understood, compared with the register, and brought in."""
