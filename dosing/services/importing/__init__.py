"""Blood results out of laboratories' files and messages: read, judged line by line, previewed, taken by a person."""
