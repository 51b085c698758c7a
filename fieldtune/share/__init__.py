"""What leaves the tool: tables, robot-program source, the pit sheet, packs."""
