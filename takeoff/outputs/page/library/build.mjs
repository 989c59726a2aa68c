// Bundles the parts of three.js that the page uses into ../assets/three.min.js, with its licence beside it.
// Run in this folder: npm ci --ignore-scripts && npm run build
import { readFileSync, writeFileSync } from "node:fs";
import { build } from "esbuild";

const version = JSON.parse(readFileSync("node_modules/three/package.json", "utf8")).version;
await build({
  entryPoints: ["entry.js"],
  outfile: "../assets/three.min.js",
  bundle: true,
  minify: true,
  format: "iife",
  globalName: "THREE",
  target: "es2022",
  charset: "ascii",
  legalComments: "none",
  banner: { js: `/* three.js ${version}, MIT licence: see three.LICENSE.txt */` },
});
writeFileSync("../assets/three.LICENSE.txt", readFileSync("node_modules/three/LICENSE"));
