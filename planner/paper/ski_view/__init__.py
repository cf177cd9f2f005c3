"""One pair looked at: the mounting zones of both skis as a picture and as characters."""
