"""The languages of the pages: what is to be translated is gathered here, and the catalogues are checked."""
