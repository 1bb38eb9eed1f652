"""Records that live: a workbook of an earlier day carried into the sheets of today."""
