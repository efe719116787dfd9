import { request } from 'node:http';
import { connect } from 'node:net';
import { hostname } from 'node:os';
import { gunzipSync } from 'node:zlib';
import { Ajv } from 'ajv';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { WebSocket } from 'ws';
import { METHODS } from '../../src/api/methods.ts';
import { CONDITIONS, type Condition } from '../../src/shared/condition.ts';
import { SHOW, stageThread } from '../show/stage-thread.ts';
import { type Json, Rig } from './helpers.ts';

let rig: Rig;
beforeEach(async () => {
  rig = await Rig.start();
});
afterEach(() => rig.end());

interface Answer {
  status: number;
  headers: Record<string, string | string[] | undefined>;
  body: string;
  bytes: Buffer;
}

/** Plain node:http, so that Host, Origin and the path go out as given. */
function get(path: string, headers: Record<string, string> = {}, method = 'GET'): Promise<Answer> {
  return new Promise((resolve, reject) => {
    const options = { host: '127.0.0.1', port: rig.port, path, method, headers };
    const outgoing = request(options, (incoming) => {
      const chunks: Buffer[] = [];
      incoming.on('data', (data) => chunks.push(data));
      incoming.on('end', () => {
        const bytes = Buffer.concat(chunks);
        const { statusCode: status, headers } = incoming;
        resolve({ status: status!, headers, body: bytes.toString(), bytes });
      });
    });
    outgoing.on('error', reject);
    outgoing.end();
  });
}

const tick = (tS: number, condition: Condition): void => rig.tick(tS, [], { condition, amps: 1.5 });

describe('/health', () => {
  it.each(CONDITIONS)('%s', async (condition) => {
    tick(12.5, condition);
    const { status, body, headers } = await get('/health');
    expect(status).toBe(condition === 'faulted' ? 503 : 200);
    expect(headers['content-type']).toMatch(/^application\/json/);
    expect(JSON.parse(body)).toEqual({
      condition,
      prop: 'Foyer owl',
      uptimeS: 12.5,
      holder: null,
    });
  });

  it('503 once the core has stood still for more than a second', async () => {
    tick(1, 'live');
    rig.clock.advance(50);
    rig.clock.advance(1000);
    expect((await get('/health')).status).toBe(200);
    rig.clock.advance(50);
    const { status, body } = await get('/health');
    expect(status).toBe(503);
    expect(JSON.parse(body).reason).toMatch(/core stands still/);
    tick(2, 'live');
    expect((await get('/health')).status).toBe(200);
  });
});

describe('/metrics', () => {
  it('is OpenMetrics 1.0', async () => {
    tick(1, 'live');
    for (const lateMs of [-0.3, 0.01, 0.3, 500]) rig.telemetry.countLateness(lateMs);
    const client = await rig.open();
    await client.call('nonsense');
    const { headers, body } = await get('/metrics');
    // OpenMetrics 1.0 (https://prometheus.io/docs/specs/om/open_metrics_spec, from memory): content
    // type, EOF, metadata before samples, families not interleaved, no empty lines, the suffix
    // _total, unit as suffix of the name, state sets with a label of the family's name.
    expect(headers['content-type']).toBe(
      'application/openmetrics-text; version=1.0.0; charset=utf-8',
    );
    expect(body.endsWith('# EOF\n')).toBe(true);
    const lines = body.split('\n').slice(0, -2);
    const seen = new Map<string, string>();
    let family = '';
    for (const line of lines) {
      const meta = /^# (TYPE|UNIT|HELP) ([a-z_]+) (.+)$/.exec(line);
      if (meta) {
        const [, word, name, rest] = meta as unknown as [string, string, string, string];
        if (word === 'TYPE') {
          expect(seen.has(name)).toBe(false);
          seen.set(name, rest);
          family = name;
        }
        expect(name).toBe(family);
        if (word === 'UNIT') expect(name.endsWith(`_${rest}`)).toBe(true);
        continue;
      }
      const sample = /^([a-z_]+)(?:\{[a-z_]+="[^"\n]*"\})? (-?[0-9.e+-]+)$/.exec(line);
      expect(sample, line).not.toBeNull();
      const suffixes = { counter: ['_total'], histogram: ['_bucket', '_count'] }[seen.get(family)!];
      expect((suffixes ?? ['']).map((suffix) => family + suffix)).toContain(sample![1]);
    }
    expect(Object.fromEntries(seen)).toMatchObject({
      sinew_condition: 'stateset',
      sinew_sessions: 'gauge',
      sinew_frames: 'counter',
      sinew_refused: 'counter',
      sinew_tick_lateness_seconds: 'histogram',
    });
    const values = new Map(lines.map((line) => line.split(' ') as [string, string]));
    expect(values.get('sinew_condition{sinew_condition="live"}')).toBe('1');
    expect(values.get('sinew_condition{sinew_condition="parked"}')).toBe('0');
    expect(values.get('sinew_sessions')).toBe('1');
    expect(values.get('sinew_frames_total')).toBe('2');
    expect(values.get('sinew_refused_total{code="-32601"}')).toBe('1');
    expect(values.get('sinew_rail_amperes{rail="servo6v"}')).toBe('1.5');
    expect(values.get('sinew_rail_limit_amperes{rail="servo6v"}')).toBe('5');
    expect(values.get('sinew_core_ticks_total')).toBe('1');
    // Histogram: cumulative, the last bucket is +Inf and equals the count.
    const buckets = lines.filter((line) => line.includes('lateness_seconds_bucket'));
    const counts = buckets.map((line) => Number(line.split(' ')[1]));
    expect(counts).toEqual(counts.toSorted((a, b) => a - b));
    expect([counts[0], counts.at(-2), counts.at(-1)]).toEqual([2, 3, 4]);
    expect(buckets.at(-1)).toBe('sinew_tick_lateness_seconds_bucket{le="+Inf"} 4');
    expect(values.get('sinew_tick_lateness_seconds_count')).toBe('4');
    expect(Number(values.get('process_resident_memory_bytes'))).toBeGreaterThan(1e6);
  });
});

describe('the OpenRPC document', () => {
  it('has the members that OpenRPC 1.3 requires', async () => {
    const document: Json = JSON.parse((await get('/openrpc.json')).body);
    // https://spec.open-rpc.org, version 1.3.2 (from memory).
    // OpenRPC Object: openrpc, info, methods. Info Object: title, version.
    expect(document.openrpc).toMatch(/^1\.3\.\d+$/);
    expect(document.info).toMatchObject({
      title: expect.any(String),
      version: expect.stringMatching(/^\d+\.\d+\.\d+$/),
    });
    // Server Object: url.
    for (const server of document.servers) expect(server.url).toBe('/api');
    const ajv = new Ajv({ strict: false });
    const names = document.methods.map((method: Json) => method.name);
    // Method Object: name (unique) and params; Content Descriptor: name and schema.
    expect(new Set(names).size).toBe(names.length);
    for (const method of document.methods) {
      expect(method.name).toEqual(expect.any(String));
      expect(['by-name', 'by-position', 'either']).toContain(method.paramStructure);
      expect(Array.isArray(method.params)).toBe(true);
      const params = method.params.map((param: Json) => param.name);
      expect(new Set(params).size).toBe(params.length);
      for (const descriptor of [...method.params, method.result]) {
        expect(descriptor.name).toEqual(expect.any(String));
        // Schemas are JSON Schema draft 7: ajv compiles what follows its meta-schema.
        expect(ajv.validateSchema(descriptor.schema)).toBe(true);
        ajv.compile(descriptor.schema);
      }
      for (const { $ref } of method.errors) {
        const [, kind] = /^#\/components\/errors\/(\w+)$/.exec($ref)!;
        // Error Object: code (an integer) and message.
        const error = document.components.errors[kind!];
        expect(Number.isInteger(error.code)).toBe(true);
        expect(error.message).toEqual(expect.any(String));
      }
    }
    // Members of the project's own are prefixed with x-.
    const known = ['openrpc', 'info', 'servers', 'methods', 'components', 'externalDocs'];
    for (const key of Object.keys(document)) {
      expect(known.includes(key) || key.startsWith('x-'), key).toBe(true);
    }
  });

  it('lists every method, each with what it needs and in which unit', async () => {
    const document: Json = JSON.parse((await get('/openrpc.json')).body);
    const method = (name: string) => document.methods.find((other: Json) => other.name === name);
    expect(document.methods.map((other: Json) => other.name).sort()).toEqual(
      Object.keys(METHODS).sort(),
    );
    for (const name of [
      ...['session.open', 'lease.take', 'lease.release', 'wake', 'park', 'reset', 'stop'],
      ...['channel.list', 'channel.move', 'channel.jog', 'channel.switch', 'channel.colour'],
      ...['channel.dim', 'channel.identify', 'group.move', 'pose.go', 'mark.capture'],
      ...['limits.capture', 'park.capture', 'capture.undo', 'loom.find', 'loom.trace'],
      ...['board.list', 'prop.read', 'prop.check', 'prop.apply', 'prop.history', 'prop.restore'],
      ...['sim.set', 'cue.list', 'budget.read', 'budget.cue'],
      ...['state.follow', 'state.unfollow', 'journal.read', 'rpc.discover'],
    ]) {
      expect(method(name), name).toBeDefined();
    }
    const required = (name: string) =>
      method(name)
        .params.filter((param: Json) => param.required)
        .map((param: Json) => param.name);
    expect(required('channel.move')).toEqual(['channel', 'to']);
    expect(required('session.open')).toEqual(['client']);
    expect(required('stop')).toEqual(['category']);
    expect(required('park.capture')).toEqual(['channel']);
    expect(required('loom.find')).toEqual(['text']);
    expect(required('capture.undo')).toEqual([]);
    for (const { params } of document.methods) {
      for (const { name, description } of params) {
        const unit = /(DegS2|DegS|Deg|Us|S)$/.exec(name)?.[1];
        if (unit) expect(description, name).toMatch({ Deg: /deg/, Us: /us/, S: /\(s\)/ }[unit]!);
      }
    }
  });

  it('rpc.discover answers the same document', async () => {
    const client = await rig.open();
    const { result } = await client.call('rpc.discover');
    expect(result).toEqual(JSON.parse((await get('/openrpc.json')).body));
  });
});

describe('the page and its surroundings', () => {
  it('/ is a page that loads nothing from elsewhere and is not framed', async () => {
    const { status, headers, body } = await get('/');
    expect(status).toBe(200);
    expect(headers['content-type']).toBe('text/html; charset=utf-8');
    expect(body).toMatch(/<title>Sinew/);
    expect(headers['cache-control']).toBe('no-cache');
    expect(headers['x-content-type-options']).toBe('nosniff');
    expect(headers['content-security-policy']).toMatch(
      /default-src 'none'.*frame-ancestors 'none'/,
    );
  });

  it('a page that has not changed is not sent again (RFC 9110, 13.1.2)', async () => {
    const { headers } = await get('/');
    const again = await get('/', { 'if-none-match': headers.etag as string });
    expect(again.status).toBe(304);
    expect(again.body).toBe('');
  });

  // RFC 9110, 12.5.3, and its examples of Accept-Encoding.
  it.each([
    ['gzip', true],
    ['gzip, deflate, br, zstd', true],
    ['GZIP', true],
    ['*', true],
    ['gzip;q=1.0, identity; q=0.5, *;q=0', true],
    ['identity;q=1, gzip;q=0.001', true],
    ['compress, br', false],
    ['gzip;q=0', false],
    ['gzip; q=0.000, *', false],
    ['', false],
  ])('accept-encoding %j: compressed %s', async (encoding, compressed) => {
    for (const path of ['/', '/app.css', '/icon.svg']) {
      const plain = await get(path);
      expect(plain.headers['content-encoding']).toBeUndefined();
      expect(plain.headers.vary).toBe('accept-encoding');
      const asked = { 'accept-encoding': encoding };
      const answer = await get(path, asked);
      expect(answer.headers['content-encoding']).toBe(compressed ? 'gzip' : undefined);
      expect(answer.headers['content-type']).toBe(plain.headers['content-type']);
      expect(answer.headers.vary).toBe('accept-encoding');
      expect(compressed ? gunzipSync(answer.bytes) : answer.bytes).toEqual(plain.bytes);
      // A cache that holds one form must not take it for the other (RFC 9110, 8.8.3.3).
      expect(answer.headers.etag === plain.headers.etag).toBe(!compressed);
      const held = { ...asked, 'if-none-match': answer.headers.etag as string };
      expect((await get(path, held)).status).toBe(304);
      const other = { ...asked, 'if-none-match': '"of another file"' };
      expect((await get(path, other)).status).toBe(200);
    }
  });

  it.each([
    '/nothing',
    '/index.html',
    '/app.css/',
    '/%2fapp.css',
    '/__proto__',
    '/../server.ts',
    '/..%2fserver.ts',
    '/%2e%2e/server.ts',
    '/page/../../limits.ts',
    '/index.html/..%5c..%5climits.ts',
    '/%00',
    '//etc/passwd',
  ])('%s is not found', async (path) => {
    const { status, body, headers } = await get(path);
    expect(status).toBe(404);
    expect(JSON.parse(body).error).toMatch(/bench page is at \//);
    expect(headers['x-content-type-options']).toBe('nosniff');
  });

  it('a path that is not a URL is a bad request, as JSON', async () => {
    const { status, body } = await get('/%zz');
    expect(status).toBe(400);
    expect(JSON.parse(body).message).toMatch(/not a valid/);
  });

  it.each(['POST', 'PUT', 'DELETE'])('%s is not taken', async (method) => {
    expect((await get('/health', {}, method)).status).toBe(404);
  });

  it('/api without an upgrade says how (RFC 9110, 15.5.22)', async () => {
    const { status, headers, body } = await get('/api');
    expect(status).toBe(426);
    expect(headers.upgrade).toBe('websocket');
    expect(JSON.parse(body).error).toMatch(/ws:\/\//);
  });
});

describe('pages of other sites', () => {
  const paths = ['/', '/health', '/metrics', '/openrpc.json', '/nothing'];

  it.each(paths)('%s is not served to them', async (path) => {
    const foreign = await get(path, { origin: 'http://attacker.example' });
    expect(foreign.status).toBe(403);
    const rebound = await get(path, { host: `attacker.example:${rig.port}` });
    expect(rebound.status).toBe(421);
    expect(JSON.parse(rebound.body).error).toMatch(/attacker\.example/);
  });

  it('this page is served, under each of its names', async () => {
    for (const name of ['127.0.0.1', 'localhost', hostname().toLowerCase()]) {
      const host = `${name}:${rig.port}`;
      expect((await get('/health', { host, origin: `http://${host}` })).status).toBe(200);
    }
  });

  it('the WebSocket is refused to them', async () => {
    await expect(rig.connect({ origin: 'http://attacker.example' })).rejects.toThrow('403');
    await expect(rig.connect({ headers: { host: 'attacker.example' } })).rejects.toThrow('421');
    await expect(rig.connect({ origin: 'null' })).rejects.toThrow('403');
    const own = await rig.connect({ origin: `http://127.0.0.1:${rig.port}` });
    expect((await own.call('session.open', { client: 'page' })).result).toBeDefined();
    expect(rig.of('open').length).toBe(1);
  });
});

it('the WebSocket is at /api alone', async () => {
  const socket = new WebSocket(`ws://127.0.0.1:${rig.port}/other`);
  const error = await new Promise<Error>((resolve) => socket.once('error', resolve));
  expect(error.message).toMatch('404');
});

describe('listening', () => {
  const refusedStart = async (changes: object) => {
    const second = await Rig.start(changes);
    await second.gateway.closed;
    expect(second.received.length).toBe(1);
    return second.received[0];
  };

  it('tells the port that was given', () => {
    expect(rig.of('listening')).toEqual([{ t: 'listening', host: '127.0.0.1', port: rig.port }]);
    expect(rig.port).toBeGreaterThan(0);
  });

  it('a port in use is told in plain words, with a remedy', async () => {
    expect(await refusedStart({ port: rig.port })).toEqual({
      t: 'cannot-listen',
      reason: expect.stringMatching(
        new RegExp(
          `127\\.0\\.0\\.1:${rig.port}: the port is in use.*--listen 127\\.0\\.0\\.1:PORT`,
        ),
      ),
    });
  });

  it('an address that this machine does not have', async () => {
    // 192.0.2.0/24 is nobody's: RFC 5737.
    expect(await refusedStart({ host: '192.0.2.1', tokenHash: new Uint8Array(32) })).toMatchObject({
      t: 'cannot-listen',
      reason: expect.stringMatching(/no such address/),
    });
  });

  it('no address that others reach without a token', async () => {
    expect(await refusedStart({ host: '0.0.0.0' })).toMatchObject({
      t: 'cannot-listen',
      reason: expect.stringMatching(/needs a token.*--token-file/),
    });
  });
});

it('a request that trickles in does not hold its connection for ever', async () => {
  const socket = connect(rig.port, '127.0.0.1');
  let text = '';
  socket.on('data', (data) => {
    text += data;
  });
  let closed = false;
  socket.on('close', () => {
    closed = true;
  });
  socket.write('GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ');
  // node:http looks every second for headers older than five: real time, as it has no other clock.
  for (let second = 0; second < 25 && !closed; second++) {
    await new Promise((resume) => setTimeout(resume, 1000));
    if (!closed) socket.write('x');
  }
  expect(closed).toBe(true);
  expect(text).toMatch(/^HTTP\/1\.1 408 /);
}, 30_000);

it('what the page of a show asks for is answered though it takes longer than an idle connection may last', async () => {
  const showing = await Rig.start({ view: { show: SHOW }, spawnStage: stageThread });
  const reply = await fetch(`http://127.0.0.1:${showing.port}/show/act`, {
    method: 'POST',
    headers: { 'x-page': 'page-one-1', 'content-type': 'application/json' },
    body: JSON.stringify({ act: 'park', target: 'late' }),
  });
  expect(await reply.json()).toEqual({ ok: true, lines: ['park'] });
  await showing.end();
});
