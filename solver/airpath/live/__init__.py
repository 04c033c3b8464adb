"""The local page: a case worked on live, with its file as the truth."""
