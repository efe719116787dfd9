import { execFile, spawn } from 'node:child_process';
import { randomBytes } from 'node:crypto';
import { chmod, mkdtemp, readdir, readFile, rm, stat, symlink, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { parseProp } from '../../src/prop/load.ts';
import { CLI, DAEMON, type Daemon, OWL, Peer } from '../system/daemon.ts';
import { patientDaemon, patientOwl } from './patient.ts';
import { quantile } from './process.ts';
import { Dribble, get, raw, statusOf } from './raw-http.ts';
import { addRow, LONG } from './report.ts';

// What somebody may try who is not let in, or who is and wants more, on the daemon as a whole.

const run = promisify(execFile);
const root = fileURLToPath(new URL('../..', import.meta.url));
const TOKEN = randomBytes(32).toString('hex');

let home: string;
let daemon: Daemon;
let owner: Peer;

async function withToken(): Promise<Daemon> {
  const file = join(home, 'token');
  await writeFile(file, `${TOKEN}\n`, { mode: 0o600 });
  return patientDaemon(['--token-file', file, '--log', 'debug']);
}

beforeAll(async () => {
  home = await mkdtemp(join(tmpdir(), 'sinew-security-'));
  daemon = await withToken();
  owner = await Peer.connect(daemon);
  await owner.ask('session.open', { client: 'owner', token: TOKEN });
  await owner.ask('lease.take');
  await owner.ask('wake', { wait: true, confirm: 'unknown' });
});
afterAll(async () => {
  await daemon.cleanUp();
  await rm(home, { recursive: true });
});

/** Runs Node to its end; its exit code, or the signal that ended it. */
async function node(
  args: string[],
  timeout = 20_000,
): Promise<{ status: number | string; stdout: string; stderr: string }> {
  try {
    return { status: 0, ...(await run(process.execPath, args, { timeout, maxBuffer: 2 ** 26 })) };
  } catch (error) {
    const { code, signal, stdout, stderr } = error as {
      code: number | null;
      signal: string;
      stdout: string;
      stderr: string;
    };
    return { status: code ?? signal, stdout, stderr };
  }
}

/** Tells a row, then fails with what was found. */
function judge(fault: string, promise: string, found: string[], none: string): void {
  addRow({ fault, promise, worst: found[0] ?? none, holds: found.length === 0 });
  expect(found).toEqual([]);
}

// --- the token ----------------------------------------------------------------------------------------

/** Every token that is nearly right: one digit off in each place, too short, too long, in other clothes. */
function nearlyRight(): string[] {
  const flipped = [...TOKEN].map((digit, i) => {
    const other = digit === '0' ? '1' : '0';
    return TOKEN.slice(0, i) + other + TOKEN.slice(i + 1);
  });
  return [
    ...flipped,
    TOKEN.slice(1),
    TOKEN.slice(0, -1),
    `${TOKEN}0`,
    `${TOKEN}\n`,
    ` ${TOKEN}`,
    `${TOKEN}\u0000`,
    TOKEN.toUpperCase() === TOKEN ? `${TOKEN}A` : TOKEN.toUpperCase(),
    TOKEN.split('').reverse().join(''),
    '',
    '*',
    '__proto__',
    '0'.repeat(64),
  ];
}

/** Tries to get in; how long the answer took (ms), and the code, 0 when it was let in. */
async function attempt(params: object): Promise<{ code: number; ms: number; then: number }> {
  const peer = await Peer.connect(daemon);
  const startMs = performance.now();
  const { error } = await peer.call('session.open', { client: 'guest', ...params });
  const ms = performance.now() - startMs;
  // A session that was refused is not heard again.
  const then = await peer.call('stop', { category: 0 }).then(
    (answer) => answer.error?.code ?? 0,
    () => -32006,
  );
  peer.socket.terminate();
  return { code: error?.code ?? 0, ms, then };
}

test('a token that is missing, wrong or nearly right', async () => {
  const wrong: string[] = [];
  const guesses: object[] = [
    {},
    { token: null },
    { token: 0 },
    { token: [TOKEN] },
    { token: { toString: TOKEN } },
    ...nearlyRight().map((token) => ({ token })),
  ];
  const tookMs: number[] = [];
  for (let i = 0; i < guesses.length; i += 16)
    await Promise.all(
      guesses.slice(i, i + 16).map(async (guess) => {
        const { code, ms, then } = await attempt(guess);
        if (code === 0) wrong.push(`let in with ${JSON.stringify(guess).slice(0, 40)}`);
        if (then === 0) wrong.push('a session that was refused has stopped the prop');
        if (code === -32006) tookMs.push(ms);
      }),
    );
  if (Math.min(...tookMs) < 200) wrong.push(`answered after ${Math.min(...tookMs)} ms`);
  const { condition } = (await (await fetch(`${daemon.url}health`)).json()) as {
    condition: string;
  };
  if (condition !== 'live') wrong.push(`the prop is ${condition}`);
  judge(
    `${guesses.length} wrong tokens, each digit off by itself among them`,
    'none is let in or heard again; each is answered after 200 ms or more',
    wrong,
    `0 let in; first answer after ${Math.min(...tookMs).toFixed(0)} ms`,
  );
});

test('a wrong token tells nothing by the time that it takes', async () => {
  const first = (TOKEN[0] === '0' ? '1' : '0') + TOKEN.slice(1);
  const last = TOKEN.slice(0, -1) + (TOKEN.endsWith('0') ? '1' : '0');
  const took: Record<'first' | 'last', number[]> = { first: [], last: [] };
  for (let i = 0; i < (LONG ? 40 : 8); i++) {
    // At the same time, so that the machine is as busy for the one as for the other.
    const [a, b] = await Promise.all([attempt({ token: first }), attempt({ token: last })]);
    took.first.push(a.ms);
    took.last.push(b.ms);
  }
  const gapMs = Math.abs(quantile(took.first, 0.5) - quantile(took.last, 0.5));
  addRow({
    fault: 'tokens wrong in the first digit, and in the last one',
    promise: 'the medians of their answers differ by less than 10 ms of 200 ms',
    worst: `${gapMs.toFixed(2)} ms`,
    holds: gapMs < 10,
  });
  expect(gapMs).toBeLessThan(10);
});

test('the token is in no log, answer, file of state or list of processes', async () => {
  const found: string[] = [];
  const look = (where: string, text: string) => {
    if (text.toLowerCase().includes(TOKEN.slice(0, 20))) found.push(`in ${where}`);
  };
  look('the log', daemon.log);
  expect(daemon.log.length).toBeGreaterThan(1000);
  look('the journal', JSON.stringify(await owner.ask('journal.read', { limit: 1000 })));
  for (const path of ['health', 'metrics', 'openrpc.json', ''])
    look(path, await (await fetch(daemon.url + path)).text());
  for (const name of await readdir(join(daemon.folder, 'state')))
    look(name, await readFile(join(daemon.folder, 'state', name), 'utf8'));
  for (const file of ['cmdline', 'environ'])
    look(file, await readFile(`/proc/${daemon.child.pid}/${file}`, 'utf8'));
  judge('a look for the token in everything the daemon tells', 'it is nowhere', found, 'not found');
});

test('files are nobody else’s, whatever the umask', async () => {
  const open: string[] = [];
  const folder = await mkdtemp(join(tmpdir(), 'sinew-modes-'));
  const prop = join(folder, 'prop.yaml');
  await writeFile(prop, await patientOwl(), { mode: 0o600 });
  await chmod(prop, 0o600);
  const command = `umask 000; exec "${process.execPath}" "${DAEMON}" --prop "${prop}" --state-dir "${folder}/state" --listen 127.0.0.1:0 --log error`;
  const child = spawn('sh', ['-c', command], { stdio: ['ignore', 'pipe', 'inherit'] });
  try {
    const url = await new Promise<string>((resolve) => {
      child.stdout.on('data', (data) => {
        const match = /(http:\S+)/.exec(String(data));
        if (match) resolve(match[1]!);
      });
    });
    const peer = await Peer.holder({ port: Number(new URL(url).port) } as Daemon);
    await peer.ask('mark.capture', { channel: 'beak', mark: 'here' });
    await peer.close();
    const look = async (path: string, most: number) => {
      const mode = (await stat(path)).mode & 0o777;
      if (mode & ~most) open.push(`${path.slice(folder.length + 1)} has mode ${mode.toString(8)}`);
    };
    await look(join(folder, 'state'), 0o700);
    await look(join(folder, 'state', 'state.json'), 0o600);
    const beside = await readdir(folder);
    for (const name of beside.filter((one) => one !== 'state'))
      await look(join(folder, name), 0o700);
    expect(beside.length).toBeGreaterThan(2);
  } finally {
    child.kill('SIGKILL');
    await rm(folder, { recursive: true, force: true });
  }
  const token = join(home, 'open-token');
  await writeFile(token, TOKEN);
  for (const mode of LONG ? [0o644, 0o640, 0o604, 0o620, 0o601] : [0o620]) {
    await chmod(token, mode);
    const args = [
      DAEMON,
      '--prop',
      daemon.propFile,
      '--token-file',
      token,
      '--listen',
      '127.0.0.1:0',
    ];
    const { status, stderr } = await node(args, 5000);
    if (status !== 1) open.push(`a token file of mode ${mode.toString(8)}: exit ${status}`);
    if (stderr.includes(TOKEN)) open.push('the refusal tells the token');
  }
  judge(
    'umask 000; token files that others may read',
    'state 0700 and 0600, a private prop file and its versions stay private, such a token is refused',
    open,
    'no file open to others',
  );
});

// --- pages of other sites, paths ------------------------------------------------------------------------

test('DNS rebinding and foreign origins', async () => {
  const { port } = daemon;
  const upgrade = [
    'Connection: Upgrade',
    'Upgrade: websocket',
    'Sec-WebSocket-Version: 13',
    'Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==',
  ];
  const evil = `rebound.example:${port}`;
  const own = `127.0.0.1:${port}`;
  const cases: [name: string, headers: string[], status: number][] = [
    ['a rebound name, with its own origin', [`Host: ${evil}`, `Origin: http://${evil}`], 421],
    ['a rebound name without an origin', [`Host: ${evil}`], 421],
    ['a foreign origin', [`Host: ${own}`, 'Origin: http://rebound.example'], 403],
    ['the null origin of a sandboxed frame', [`Host: ${own}`, 'Origin: null'], 403],
    ['a file:// page', [`Host: ${own}`, 'Origin: file://'], 403],
    ['another port of this machine', [`Host: ${own}`, `Origin: http://127.0.0.1:${port + 1}`], 403],
    ['a name that ends like ours', [`Host: localhost.rebound.example:${port}`], 421],
    ['a name that begins like ours', [`Host: 127.0.0.1.rebound.example:${port}`], 421],
    ['a user before the host', [`Host: localhost@rebound.example:${port}`], 421],
    ['no host', [], 421],
    ['an empty host', ['Host:'], 421],
    ['two hosts', [`Host: ${own}`, `Host: ${evil}`], 400],
  ];
  const wrong: string[] = [];
  for (const [name, headers, status] of cases)
    for (const path of ['/', '/health', '/metrics', '/api']) {
      const more = path === '/api' ? upgrade : [];
      const answer =
        path === '/api'
          ? await raw(port, [`GET /api HTTP/1.1`, ...headers, ...more, '', ''].join('\r\n'), 500)
          : await get(port, path, headers);
      const got = statusOf(answer);
      // Without a host Node itself answers 400 where nothing is upgraded.
      if (got !== status && !(name === 'no host' && got === 400))
        wrong.push(`${name}: ${path} answers ${got}, not ${status}`);
    }
  judge(
    `${cases.length} kinds of foreign Host and Origin, pages and WebSocket`,
    'each is refused (421, 403 or 400)',
    wrong,
    '0 served',
  );
});

test('paths that lead out of the page', async () => {
  const secret = join(daemon.folder, 'state', 'state.json');
  const up = '../'.repeat(12);
  const paths = [
    `/${up}etc/passwd`,
    `/${up.replaceAll('/', '%2f')}etc%2fpasswd`,
    `/${up.replaceAll('.', '%2e')}etc/passwd`,
    `/${up.replaceAll('../', '..%5c')}etc%5cpasswd`,
    `/${up.replaceAll('.', '%252e')}etc/passwd`,
    `/${'....//'.repeat(12)}etc/passwd`,
    `/%c0%ae%c0%ae/${up}etc/passwd`,
    '/etc/passwd',
    '//etc/passwd',
    'file:///etc/passwd',
    `http://127.0.0.1:${daemon.port}/${up}etc/passwd`,
    secret,
    `/..${secret}`,
    '/index.html%00.js',
    '/app.js/../../../gateway/token.js',
    '/../token.js',
    '/.git/config',
    '/package.json',
    '/proc/self/environ',
  ];
  const wrong: string[] = [];
  for (const path of paths) {
    const answer = await get(daemon.port, path, [`Host: 127.0.0.1:${daemon.port}`]);
    const status = statusOf(answer);
    if (status < 400 || /root:|"positions"|readTokenFile|bootId/.test(answer))
      wrong.push(`${path}: ${status}`);
  }
  judge(`${paths.length} paths out of the page's folder`, 'no file is served', wrong, '0 served');
});

test('the page’s Content-Security-Policy', async () => {
  const response = await fetch(daemon.url);
  const policy = new Map(
    response.headers
      .get('content-security-policy')!
      .split(';')
      .map((part) => {
        const [name, ...values] = part.trim().split(/\s+/);
        return [name!, values.join(' ')] as const;
      }),
  );
  const wrong: string[] = [];
  const must: Record<string, string> = {
    'default-src': "'none'",
    'script-src': "'self'",
    'connect-src': "'self'",
    'base-uri': "'none'",
    'form-action': "'none'",
    'frame-ancestors': "'none'",
  };
  for (const [name, value] of Object.entries(must))
    if (policy.get(name) !== value) wrong.push(`${name} is ${policy.get(name)}`);
  for (const [name, value] of policy)
    if (/unsafe|\*|https?:/.test(value)) wrong.push(`${name} allows ${value}`);
  const html = await response.text();
  if (
    /<script(?![^>]*\ssrc="\/?[a-z.]+")|<style|\son\w+=|javascript:|(src|href)="(https?:)?\/\//i.test(
      html,
    )
  )
    wrong.push('the page holds something that the policy forbids');
  judge(
    'the page',
    'scripts from itself alone, no frames around it',
    wrong,
    'nothing else allowed',
  );
});

// --- files that are made to hurt ------------------------------------------------------------------------

const polluted = () =>
  Object.getOwnPropertyNames(Object.prototype)
    .concat(Object.keys({}))
    .filter((name) => /polluted|isAdmin/.test(name));

test('prototype pollution through YAML and JSON', async () => {
  const owl = await readFile(OWL, 'utf8');
  const poison = '{ polluted: yes, isAdmin: true, kind: relay, toString: x }';
  const texts = [
    `${owl}\n__proto__: ${poison}\n`,
    owl.replace('\nchannels:\n', `\nchannels:\n  __proto__: ${poison}\n`),
    owl.replace(
      '\nposes:\n',
      `\nposes:\n  __proto__: { beak: shut }\n  constructor: { beak: shut }\n`,
    ),
    owl.replace('marks: { shut: 0, open: 30 }', 'marks: { shut: 0, open: 30, __proto__: 5 }'),
    owl.replace('\ngroups:\n', `\nx: &x ${poison}\ngroups:\n  <<: *x\n`),
    owl.replace('\nboards:\n', `\nboards:\n  constructor: { prototype: ${poison} }\n`),
    owl.replace('sinew: 1', `? { __proto__: ${poison} }\n: 1\nsinew: 1`),
  ];
  const wrong: string[] = [];
  for (const [i, text] of texts.entries()) {
    parseProp(text, 'poison.yaml');
    // The owner's signs of life come from this process.
    await new Promise((resolve) => setImmediate(resolve));
    if (polluted().length > 0) wrong.push(`YAML ${i}: ${polluted()}`);
  }
  // In the daemon: whatever was poisoned would be a parameter of every later call.
  const poisons = [
    '{"jsonrpc":"2.0","id":"p","method":"channel.move","__proto__":{"polluted":1,"overS":3},"params":{"channel":"beak","to":5}}',
    '{"jsonrpc":"2.0","id":"p","method":"channel.list","params":{"__proto__":{"polluted":1}}}',
    '{"jsonrpc":"2.0","id":"p","method":"channel.list","params":{"constructor":{"prototype":{"polluted":1}}}}',
    '{"jsonrpc":"2.0","id":"p","method":"__proto__"}',
    '{"jsonrpc":"2.0","id":"p","method":"constructor"}',
    '{"jsonrpc":"2.0","id":"p","method":"pose.go","params":{"pose":"__proto__"}}',
    '{"jsonrpc":"2.0","id":"p","method":"cue.run","params":{"cue":"constructor"}}',
    '{"jsonrpc":"2.0","id":"p","method":"group.move","params":{"group":"toString","to":1}}',
    '{"jsonrpc":"2.0","id":"p","method":"channel.move","params":{"channel":"beak","to":"__proto__"}}',
    '{"jsonrpc":"2.0","id":"p","method":"channel.move","params":{"channel":"hasOwnProperty","to":1}}',
  ];
  for (const [i, text] of poisons.entries()) {
    const before = owner.answers.length;
    owner.send(text);
    const { result, error } = await owner.until(() => owner.answers[before]);
    if (error?.code === -32603) wrong.push(`JSON ${i}: ${error.data.reason}`);
    if (i > 0 && result) wrong.push(`JSON ${i} was carried out`);
  }
  const { result } = await owner.call('channel.move', { channel: 'beak', to: 0 });
  if ((result as { durationS: number }).durationS >= 3) wrong.push('overS came from a prototype');
  // Names of a prototype's members are names like any other, where they are valid ones.
  const named = (await patientOwl())
    .replaceAll(/\bbeak\b/g, 'constructor')
    .replaceAll(/\basleep\b/g, 'toString')
    .replaceAll(/\bblink\b/g, 'hasOwnProperty');
  const other = await patientDaemon(['--log', 'error'], named);
  try {
    const peer = await Peer.holder(other);
    await peer.ask('channel.move', { channel: 'constructor', to: 10, wait: true });
    await peer.ask('pose.go', { pose: 'toString', wait: true });
    await peer.ask('cue.run', { cue: 'hasOwnProperty' });
    await peer.ask('mark.capture', { channel: 'constructor', mark: 'valueOf' });
  } catch (error) {
    wrong.push(`a prop with such names: ${(error as Error).message}`);
  } finally {
    await other.cleanUp();
  }
  judge(
    `${texts.length} prop files and ${poisons.length} frames with __proto__ and its like`,
    'no prototype changes, no error of the daemon’s own',
    wrong,
    'none changed',
  );
});

test('YAML alias bombs and endless files', async () => {
  const laughs = ['a0: &a0 [x, x, x, x, x, x, x, x, x, x]'];
  for (let i = 1; i < 10; i++)
    laughs.push(
      `a${i}: &a${i} [${Array(10)
        .fill(`*a${i - 1}`)
        .join(', ')}]`,
    );
  const bombs: Record<string, string> = {
    'aliases to the power of ten': `sinew: 1\n${laughs.join('\n')}\n`,
    'a quadratic blow-up': `a: &a "${'x'.repeat(100_000)}"\nb: [${'*a, '.repeat(5000)}]\n`,
    'nested brackets': `a: ${'['.repeat(200_000)}`,
    'a map within each other': `${'{a: '.repeat(100_000)}`,
    'indentation without end': Array.from(
      { length: 3000 },
      (_unused, i) => `${' '.repeat(i)}a:`,
    ).join('\n'),
    'a key without end': `${'k'.repeat(900_000)}: 1\n`,
    'ten thousand keys': Array.from({ length: 10_000 }, (_unused, i) => `k${i}: 1`).join('\n'),
    'an anchor within itself': 'a: &a { b: *a }\n',
  };
  const file = join(home, 'bomb.yaml');
  const wrong: string[] = [];
  let longestMs = 0;
  for (const [name, text] of Object.entries(bombs)) {
    await writeFile(file, text);
    const programs = [
      [CLI, 'check', file],
      [DAEMON, '--prop', file, '--listen', '127.0.0.1:0', '--state-dir', join(home, 'bomb')],
    ];
    const startMs = performance.now();
    // A quarter of a GiB is what a small board can spare.
    for (const { status, stderr } of await Promise.all(
      programs.map((args) => node(['--max-old-space-size=256', ...args])),
    ))
      if (status !== 1) wrong.push(`${name}: exit ${status}: ${stderr.slice(0, 200)}`);
    longestMs = Math.max(longestMs, performance.now() - startMs);
  }
  const link = join(home, 'endless.yaml');
  await symlink('/dev/zero', link);
  const { status } = await node([CLI, 'check', link]);
  if (status !== 1) wrong.push(`/dev/zero as a prop file: exit ${status}`);
  judge(
    `${Object.keys(bombs).length + 1} prop files that unfold, nest or never end`,
    'refused by check and daemon within 20 s and 256 MiB of heap',
    wrong,
    `${(longestMs / 1000).toFixed(1)} s at most`,
  );
});

// --- logs and terminals -----------------------------------------------------------------------------------

const ESCAPES = [
  '\u001b[2J\u001b[31mfake',
  'a\r\n2026 INFO forged line',
  '\u009b31mC1',
  'x\u202eesrever',
];

test('log injection by what a client sends', async () => {
  const wrong: string[] = [];
  // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is looked for
  const hidden = /[\u0000-\u0009\u000b-\u001f\u007f-\u009f\u202a-\u202e\u2028\u2029]/;
  const folder = await mkdtemp(join(tmpdir(), 'sinew-terminal-'));
  const propFile = join(folder, 'prop.yaml');
  await writeFile(propFile, await patientOwl());
  // On a terminal the log is for people: script(1) gives it one.
  const command = `"${process.execPath}" "${DAEMON}" --prop "${propFile}" --state-dir "${folder}/state" --listen 127.0.0.1:0 --log debug`;
  const child = spawn('script', ['-qefc', command, '/dev/null'], {
    stdio: ['pipe', 'pipe', 'ignore'],
  });
  let log = '';
  child.stdout.on('data', (data) => {
    log += data;
  });
  try {
    while (!/http:\/\/[^\s]+\//.test(log)) await new Promise((resolve) => setTimeout(resolve, 50));
    const port = Number(/http:\/\/127\.0\.0\.1:(\d+)\//.exec(log)![1]);
    for (const text of ESCAPES) {
      const peer = await Peer.connect({ port } as Daemon);
      await peer.ask('session.open', { client: text });
      await peer.ask('lease.take');
      await peer.call('wake', { wait: true, confirm: 'unknown' });
      await peer.call('channel.move', { channel: text, to: 1 });
      await peer.call('channel.move', { channel: 'beak', to: text });
      await peer.call('channel.colour', { channel: 'eye_left', to: text });
      await peer.call('cue.run', { cue: text });
      await peer.call('pose.go', { pose: text });
      await peer.call('mark.capture', { channel: 'beak', mark: text });
      await peer.call(text, {});
      await peer.ask('lease.release', { graceS: 60 });
      await peer.close();
    }
    await get(port, `/${encodeURIComponent(ESCAPES[0]!)}`, [`Host: x${ESCAPES[2]}`]);
    const journal = await run(
      process.execPath,
      [CLI, '--host', `127.0.0.1:${port}`, 'journal', '--limit', '500'],
      { encoding: 'utf8' },
    );
    if (hidden.test(journal.stdout))
      wrong.push(`sinew journal: ${JSON.stringify(hidden.exec(journal.stdout))}`);
    if (/^2026 INFO forged/m.test(journal.stdout)) wrong.push('sinew journal: a forged line');
    if (!journal.stdout.includes('there is no channel'))
      wrong.push('the refusals are not in the journal');
    await new Promise((resolve) => setTimeout(resolve, 300));
  } finally {
    child.kill('SIGTERM');
    await new Promise((resolve) => setTimeout(resolve, 300));
    child.kill('SIGKILL');
    await rm(folder, { recursive: true, force: true });
  }
  // The log's own colours are SGR sequences of one or two numbers; a terminal ends lines with CR LF.
  // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is looked for
  const bare = log.replaceAll(/\u001b\[\d+m/g, '').replaceAll('\r\n', '\n');
  const at = hidden.exec(bare);
  if (at) wrong.push(`the log: ${JSON.stringify(bare.slice(at.index - 60, at.index + 20))}`);
  if (/^2026 INFO forged/m.test(bare)) wrong.push('the log: a forged line');
  expect(bare.length).toBeGreaterThan(1000);
  judge(
    'line breaks, ANSI and C1 escapes and bidi overrides in every name a client gives',
    'none reaches the log on a terminal, or the output of sinew journal',
    wrong,
    'none',
  );
});

// --- slow connections -------------------------------------------------------------------------------------

test('slow-loris: headers that dribble in', async () => {
  const wrong: string[] = [];
  const slow = new Dribble(daemon.port, 256);
  try {
    const tookMs: number[] = [];
    const startMs = performance.now();
    while (slow.open > 0 && performance.now() - startMs < 20_000) {
      const sentMs = performance.now();
      const { error } = await owner.call('channel.move', {
        channel: 'beak',
        to: tookMs.length % 20,
      });
      if (error) wrong.push(`the holder is refused: ${error.data.reason}`);
      tookMs.push(performance.now() - sentMs);
      await new Promise((resolve) => setTimeout(resolve, 100));
    }
    const longestMs = Math.max(...slow.lastedMs);
    const slowestMs = Math.max(...tookMs);
    if (slow.open > 0) wrong.push(`${slow.open} connections last for over 20 s`);
    if (longestMs > 10_000) wrong.push(`a connection lasts for ${longestMs.toFixed(0)} ms`);
    if (slowestMs > 500) wrong.push(`the holder waits for ${slowestMs.toFixed(0)} ms`);
    const { ok } = await fetch(`${daemon.url}health`);
    if (!ok) wrong.push('afterwards nobody is served');
    judge(
      '256 connections whose headers dribble in',
      'each ended within 10 s; the holder answered within 500 ms meanwhile, others afterwards',
      wrong,
      `${(longestMs / 1000).toFixed(1)} s; ${slowestMs.toFixed(0)} ms`,
    );
  } finally {
    slow.end();
  }
});

// It asks the registry: the long half alone needs a network.
test.runIf(LONG)('npm audit finds nothing high', async () => {
  const npm = spawn('npm', ['audit', '--audit-level=high', '--json'], { cwd: root });
  let stdout = '';
  npm.stdout.on('data', (data) => {
    stdout += data;
  });
  await new Promise((resolve) => npm.once('close', resolve));
  let found: string[];
  let none = '';
  try {
    const { metadata, message } = JSON.parse(stdout) as {
      metadata?: { vulnerabilities: Record<string, number> };
      message?: string;
    };
    if (metadata) {
      const { high = 0, critical = 0, moderate = 0, low = 0 } = metadata.vulnerabilities;
      found = high + critical > 0 ? [`${high} high, ${critical} critical`] : [];
      none = `0 high, 0 critical, ${moderate} moderate, ${low} low`;
    } else found = [`the registry could not be asked: ${message}`];
  } catch {
    found = [`npm audit gave no answer: ${stdout.slice(0, 300)}`];
  }
  judge('known faults of the packages (npm audit)', 'none is high or critical', found, none);
});
