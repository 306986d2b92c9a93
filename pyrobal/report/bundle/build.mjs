// npm ci && npm run build  ->  ../assets/plotly.js.gz and the SHA-256 of what is in it, which the report pins.
import { createHash } from "node:crypto";
import { gzipSync } from "node:zlib";
import { existsSync, readFileSync, readdirSync, writeFileSync } from "node:fs";
import { build } from "esbuild";

const { version } = JSON.parse(readFileSync("node_modules/plotly.js/package.json"));
const { metafile, outputFiles } = await build({
  metafile: true,
  entryPoints: ["entry.cjs"],
  write: false,
  bundle: true,
  minify: true,
  format: "iife",
  globalName: "Plotly",
  target: "es2020",
  alias: { regl: "@plotly/regl" },
  define: { global: "window", "define.amd": "false", "process.env.NODE_DEBUG": "false" },
  loader: { ".css": "text", ".glsl": "text" },
  charset: "ascii",
  legalComments: "none",
});
// "</script" inside a script would end it early; the backslash changes no string.
const code = outputFiles[0].text.replaceAll("</script", "<\\/script");
const script = Buffer.from(`/* plotly.js v${version}, MIT licence, plotly.LICENSE.txt */\n${code}`);
writeFileSync("../assets/plotly.js.gz", gzipSync(script, { level: 9 }));
writeFileSync("../assets/plotly.LICENSE.txt", licences(Object.keys(metafile.inputs)));
const hash = createHash("sha256").update(script).digest("hex");
writeFileSync("../assets/plotly.sha256", `${hash}\n`);
console.log(version, script.length, hash);

// The licence of every package whose code is in the bundle.
function licences(inputs) {
  const packages = new Set(inputs.map((path) => path.match(/.*node_modules\/(?:@[^/]+\/)?[^/]+/)?.[0]).filter(Boolean));
  const texts = [...packages].sort().map((folder) => {
    const { name, version, license } = JSON.parse(readFileSync(`${folder}/package.json`));
    const file = readdirSync(folder).find((f) => /^licen[cs]e/i.test(f));
    const text = file && existsSync(`${folder}/${file}`) ? readFileSync(`${folder}/${file}`, "utf8").trim() : "";
    return `${name} ${version}: ${license ?? "see below"}\n\n${text}\n`;
  });
  return texts.join(`\n${"-".repeat(70)}\n\n`);
}
