# Reads the files beside it with the types and labels of codebook.csv. R 3.5 or newer; nothing need be installed.
#
#   setwd("the folder of the files"); source("read.R")
#   wide <- read_yearmark("wide.csv")
#   attr(wide$y1_pain, "label")  # what a column holds
#   table(wide$side)             # a factor, with words for its codes
#
# What is missing is NA, and a column beside it says why.

read_yearmark <- function(file, folder = ".") {
  as_text <- function(name) {
    read.csv(file.path(folder, name), colClasses = "character", na.strings = "", encoding = "UTF-8", check.names = FALSE)
  }
  book <- as_text("codebook.csv")
  book <- book[book$file == file & book$type %in% c("integer", "number", "word", "text", "date", "instant"), ]
  data <- as_text(file)
  for (row in seq_len(nrow(book))) {
    name <- book$name[row]
    codes <- if (is.na(book$codes[row])) character(0) else strsplit(book$codes[row], " | ", fixed = TRUE)[[1]]
    code <- sub(" = .*", "", codes)
    labels <- ifelse(grepl(" = ", codes, fixed = TRUE), sub("^.*? = ", "", codes, perl = TRUE), gsub("_", " ", code))
    column <- data[[name]]
    column <- switch(book$type[row],
      # An apostrophe in front keeps a spreadsheet from running a text; it is no part of the text.
      text = sub("^'('*[=+@\uff1d\uff0b\uff0d\uff20\t\r\n-])", "\\1", column),
      word = factor(column, levels = code, labels = labels),
      integer = if (length(code)) factor(as.integer(column), levels = as.integer(code), labels = labels) else as.integer(column),
      number = as.numeric(column),
      date = as.Date(column),
      instant = as.POSIXct(column, format = "%Y-%m-%dT%H:%M:%OSZ", tz = "UTC")
    )
    attr(column, "label") <- book$label[row]
    data[[name]] <- column
  }
  data
}
