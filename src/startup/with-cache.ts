import { isAscii } from 'node:buffer';
import { createHash } from 'node:crypto';
import { existsSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { basename, dirname, join } from 'node:path';
import { Script } from 'node:vm';
import { isMainThread } from 'node:worker_threads';
import { usualPauses } from './short-pauses.ts';

/**
 * Runs a bundle with the code that V8 made of it before (Node's documentation: vm.Script, cachedData):
 * on a board, compiling a program takes as long as running it up to its first request.
 *
 * The code lies beside the bundle, made by make-cache.mjs on the machine that uses it. It is used only
 * if it was made from this very text and is whole; V8 refuses what another version of it has made.
 */

/** In a cache file: sha256 of the bundle, then sha256 of the code, then the code. */
const DIGEST_BYTES = 32;
/** How often a program looks whether its cache is to be made (ms). */
const LOOK_MS = 50;

function digest(data: string | Buffer): Buffer {
  return createHash('sha256').update(data).digest();
}

function codeIn(cache: string, source: Buffer): Buffer | undefined {
  let bytes: Buffer;
  try {
    bytes = readFileSync(cache);
  } catch {
    return undefined;
  }
  const code = bytes.subarray(2 * DIGEST_BYTES);
  const sound =
    digest(source).equals(bytes.subarray(0, DIGEST_BYTES)) &&
    digest(code).equals(bytes.subarray(DIGEST_BYTES, 2 * DIGEST_BYTES));
  return sound ? code : undefined;
}

/**
 * Runs `NAME.code.js` beside `file`, which is NAME.js. The bundle is a function already, as Node makes one of
 * a module: put together here, its text would be in memory twice.
 */
export function runCached(file: string): void {
  const folder = dirname(file);
  const name = basename(file, '.js');
  const bundle = join(folder, `${name}.code.js`);
  const cache = join(folder, `${name}.cache`);
  const source = readFileSync(bundle);
  const cachedData = codeIn(cache, source);
  // ASCII is the same text either way, and this way is faster.
  const script = new Script(source.toString(isAscii(source) ? 'latin1' : 'utf8'), {
    filename: bundle,
    ...(cachedData && { cachedData }),
  });
  const module = { exports: {} };
  script.runInThisContext()(module.exports, createRequire(bundle), module, bundle, folder);
  const when = process.env.SINEW_MAKE_CACHE;
  if (!when) return;
  const make = (): void => {
    usualPauses();
    const code = script.createCachedData();
    writeFileSync(`${cache}.new`, Buffer.concat([digest(source), digest(code), code]));
    renameSync(`${cache}.new`, cache);
  };
  const look = setInterval(() => {
    if (!existsSync(when)) return;
    clearInterval(look);
    make();
  }, LOOK_MS).unref();
  // A program that ends by itself has then done what it is for.
  if (isMainThread) process.once('exit', make);
}
