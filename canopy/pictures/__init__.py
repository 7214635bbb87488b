"""Tables and records come in, pictures as SVG text go out, for report and page alike."""
