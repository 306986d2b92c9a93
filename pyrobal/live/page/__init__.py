"""What the browser gets: plain HTML, CSS and JavaScript, nothing from elsewhere."""
