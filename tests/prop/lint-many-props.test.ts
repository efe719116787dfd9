import { expect, test } from 'vitest';
import { parseProp } from '../../src/prop/load.ts';
import { expectFindings, propText, servo } from './helpers.ts';

// Rules without a source are common practice. The mark » stands before the place of the finding.

const CHANNELS = `s: ${servo(4)}`;
const CUES = `cues:
  nod: [{ at: 0, move: { s: 5 } }]
`;
const ARMED = {
  severity: 'note',
  path: 'show',
  wrong: 'wakes and moves when the show says so',
} as const;
const FULL =
  'url: "mqtts://10.0.0.2:8883", username: owl, passwordFile: /etc/sinew/show-password, caFile: /etc/sinew/ca.pem';

type Expected = Parameters<typeof expectFindings>[1];

function expectShow(broker: string, expected: Expected, more = '', cues = CUES): void {
  const show = `show: »{ name: foyer, prop: owl, broker: ${broker.replace(/^(»?)/, '$1{ ')} }${more} }`;
  expectFindings(propText(CHANNELS, cues + show), expected);
}

test('a show with an encrypted broker that knows the prop', () => {
  expectShow(FULL, [ARMED]);
  expectShow('url: "mqtt://127.0.0.1:1883"', [ARMED]);
  expectShow('url: "mqtt://[::1]"', [ARMED]);
});

test('a broker that anybody can read or reach', () => {
  expectShow('»url: »"mqtt://10.0.0.2:1883"', [
    ARMED,
    { severity: 'warning', path: 'show.broker', wrong: 'lets in anybody' },
    { severity: 'warning', path: 'show.broker.url', wrong: 'unencrypted' },
  ]);
});

test('a name without a password, and the other way round', () => {
  expectShow('url: "mqtts://b", username: »owl', [
    ARMED,
    { path: 'show.broker.username', wrong: 'no password' },
  ]);
  expectShow('»url: "mqtts://b", passwordFile: »/etc/show-password', [
    ARMED,
    { severity: 'warning', path: 'show.broker', wrong: 'lets in anybody' },
    { path: 'show.broker.passwordFile', wrong: 'needs a name' },
  ]);
});

test('a certificate that nobody looks at', () => {
  expectShow('url: "mqtt://localhost", caFile: »/etc/ca.pem', [
    ARMED,
    { path: 'show.broker.caFile', wrong: 'not encrypted' },
  ]);
});

test('addresses and files that are none', () => {
  const wrong = (broker: string, path: string, words: string) =>
    expectFindings(
      propText(CHANNELS, `${CUES}show: { name: foyer, prop: owl, broker: { ${broker} } }`),
      [{ path, wrong: words }],
    );
  wrong('url: »"http://b"', 'show.broker.url', 'not the address of a broker');
  wrong('url: »"mqtt://me:secret@b"', 'show.broker.url', 'not the address of a broker');
  wrong('url: »"mqtt://b:99999"', 'show.broker.url', 'has a port that there is not');
  // Another secret of the board must never be sent to a broker.
  for (const file of ['/etc/sinew/token', 'show-password'])
    expectShow(`url: "mqtts://b", username: owl, passwordFile: »${file}`, [
      ARMED,
      { path: 'show.broker.passwordFile', wrong: 'not the file of a show password' },
    ]);
});

test('a cue that would never finish', () => {
  const cues = `cues:
  nod: [{ at: 0, move: { s: 5 } }, { at: 1, move: { s: 0 } }]
  forever: [{ at: 0, cue: nod, times: until stopped }]
`;
  const { findings } = parseProp(
    propText(CHANNELS, `${cues}show: { name: foyer, prop: owl, broker: { ${FULL} } }`),
    'test.yaml',
  );
  expect(findings.map(({ wrong }) => wrong)).toEqual([
    expect.stringContaining('forever would never finish'),
    expect.stringContaining(ARMED.wrong),
  ]);
  expectShow(FULL, [ARMED], ', whenBrokerLost: park', cues);
});

test('a group that is named twice', () => {
  expectShow(
    FULL,
    [ARMED, { path: 'show.groups[1]', wrong: 'in this list already' }],
    ', groups: [birds, »birds]',
  );
});
