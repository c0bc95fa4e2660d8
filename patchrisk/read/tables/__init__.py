"""Files of any layout made into the one table that columns are looked for in.

A layout that needs more than a delimiter (dates over several columns, one row for each sensor and
time, a database's own export, a workbook) has a module or a function of its own, called in
`raw_table`: it rewrites a file, or leaves it alone; which column is soil temperature is no matter
of its own.
"""
