"""The only place that knows workbooks and CSV files: from files to sheets of text, and from tables to files."""
