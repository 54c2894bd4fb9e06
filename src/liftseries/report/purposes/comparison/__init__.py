"""The report that compares groups of sites: a page of answers, four chapters, a supplement."""
