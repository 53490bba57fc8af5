"""Papers that people carry away: the owner's page, the crew sheet, the record of a comparison."""
