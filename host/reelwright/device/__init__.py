"""The winder as the host meets it: the port, the client of the link, finding a winder, the job it takes."""
