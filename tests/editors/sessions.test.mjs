// Sessions in two editors, without a screen: each shows a finding and hover, fixes the finding and renames a prop. What it
// leaves compiles, and a build of it moves nothing.
import assert from "node:assert/strict";
import { execFileSync, spawnSync } from "node:child_process";
import { cpSync, mkdtempSync, readFileSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import test from "node:test";
import { ROOT, TINSEL } from "./client.mjs";

const HERE = join(ROOT, "tests/editors");

for (const [name, command, args] of [
  ["neovim", "nvim", ["--headless", "-u", "NONE", "-i", "NONE", "-c", `luafile ${join(HERE, "session.lua")}`]],
  ["emacs", "emacs", ["--batch", "-q", "-l", join(HERE, "session.el")]],
]) {
  test(`a session in ${name}`, () => {
    const folder = mkdtempSync(join(tmpdir(), "my yard-"));
    cpSync(join(ROOT, "examples/first"), folder, { recursive: true });
    const file = join(folder, "porch.tinsel");
    execFileSync(TINSEL, ["build", "--quiet", file]);
    const text = readFileSync(file, "utf8");
    writeFileSync(file, text.replace("-> wreath", "-> wreth"));
    const env = { ...process.env, SESSION_FILE: file, TINSEL, HOME: folder, XDG_STATE_HOME: folder };
    const ran = spawnSync(command, args, { env, encoding: "utf8", timeout: 120_000 });
    assert.equal(ran.status, 0, `${ran.stdout}\n${ran.stderr}`);
    const left = readFileSync(file, "utf8");
    const lines = text.split("\n").map((line) => {
      const renamed = line.replace(/^prop fence {8}/, "prop hedge        ").replace("wire porch.3: fence", "wire porch.3: hedge");
      return renamed.startsWith("prop hedge") ? `${renamed}\nrenamed fence -> hedge` : renamed;
    });
    assert.equal(left, lines.join("\n"));
    const diff = spawnSync(TINSEL, ["diff", "--format", "json", file], { encoding: "utf8" });
    assert.equal(JSON.parse(diff.stdout).moved_strings, 0, diff.stdout);
    const check = spawnSync(TINSEL, ["check", file], { encoding: "utf8" });
    assert.equal(check.status, 0, check.stderr);
  });
}
