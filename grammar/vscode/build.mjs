// Bundles the extension and copies the colours beside it.
import { build } from "esbuild";
import { copyFile, mkdir } from "node:fs/promises";

await mkdir("dist", { recursive: true });
await build({
  entryPoints: ["extension.js"],
  outfile: "dist/extension.js",
  bundle: true,
  platform: "node",
  target: "node18",
  external: ["vscode"],
  minify: true,
});
await copyFile("../tinsel.tmLanguage.json", "dist/tinsel.tmLanguage.json");
