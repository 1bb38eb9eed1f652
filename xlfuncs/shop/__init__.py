"""A shop's evening: a page for each recipe of a list, with targets, boxes for a pen and a strip."""
