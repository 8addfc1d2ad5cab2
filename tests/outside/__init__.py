"""What others have published, asked of gradekit: each table names its source."""
