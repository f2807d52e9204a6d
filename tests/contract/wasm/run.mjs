// Runs a Python script on the WebAssembly build of MicroPython, whose small integers have 31 bits as on the boards.
//
//     MICROPYPATH=FOLDER:FOLDER node run.mjs SCRIPT ARGUMENT...
//
// The folders, and the script's own, are copied into the build's file system under their names here.
//
// This build collects garbage only while none of its code runs. A script is therefore run in parts: each ends with a line
// `gc.collect()` that is not indented.

import fs from "node:fs";
import path from "node:path";
import { loadMicroPython } from "@micropython/micropython-webassembly-pyscript";

const [script, ...given] = process.argv.slice(2);
const folders = [path.dirname(path.resolve(script)), ...(process.env.MICROPYPATH ?? "").split(":")].filter(
  (folder) => folder && folder !== ".frozen",
);

const python = await loadMicroPython({ heapsize: 16 * 1024 * 1024, linebuffer: true, stdout: (line) => console.log(line) });

function copy(from, to) {
  python.FS.mkdirTree(to);
  for (const entry of fs.readdirSync(from, { withFileTypes: true })) {
    const source = path.join(from, entry.name);
    const target = path.posix.join(to, entry.name);
    if (entry.isDirectory()) {
      if (entry.name !== "node_modules" && entry.name !== "__pycache__") copy(source, target);
    } else if (/\.(m?py|json)$/.test(entry.name)) {
      python.FS.writeFile(target, fs.readFileSync(source));
    }
  }
}

for (const folder of folders) copy(folder, folder);
for (const argument of given) {
  if (fs.existsSync(argument) && fs.statSync(argument).isFile()) {
    python.FS.mkdirTree(path.dirname(argument));
    python.FS.writeFile(argument, fs.readFileSync(argument));
  }
}
const quoted = (words) => JSON.stringify(words);
python.runPython(
  `import sys\nsys.path[:0] = ${quoted(folders)}\nsys.argv[:] = ${quoted([script, ...given])}\n` +
    `assert sys.maxsize == 2**31 - 1, "no 32-bit build"\n`,
);
try {
  const text = fs.readFileSync(script, "utf8");
  let begun = 0;
  for (const end of [...text.matchAll(/^gc\.collect\(\).*$/gm)].map((line) => line.index + line[0].length).concat(text.length)) {
    // as many empty lines before a part as the script has, so that a traceback names the script's own
    python.runPython("\n".repeat(text.slice(0, begun).split("\n").length - 1) + text.slice(begun, end));
    begun = end;
  }
} catch (failure) {
  console.error(String(failure));
  process.exit(1);
}
