"""Laws, examples and published values that gradekit must keep."""
