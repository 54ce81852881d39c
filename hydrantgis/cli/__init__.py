"""Words over `hydrantgis.job`: parse, call, print."""
