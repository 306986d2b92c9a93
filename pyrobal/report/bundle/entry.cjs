// The traces the reports draw, and no others; scatter is always within the core.
const Plotly = require("plotly.js/lib/core");

Plotly.register([
  require("plotly.js/lib/bar"),
  require("plotly.js/lib/contour"),
  require("plotly.js/lib/heatmap"),
  require("plotly.js/lib/scatterternary"),
]);

module.exports = Plotly;
