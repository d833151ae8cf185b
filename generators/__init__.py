"""What comes out: the command line, the site, study sheets and the rule export."""
