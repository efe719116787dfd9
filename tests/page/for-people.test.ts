import { expect, it } from 'vitest';
import { forPeople } from '../../src/gateway/page/for-people.ts';

it.each([
  ['nobody holds the lease; take it first (lease.take)', 'nobody has control; take it first'],
  ['desk holds the lease; it alone may command', 'desk has control; it alone may command'],
  [
    'beak may go from -5 to 35 deg; -6.5 deg is outside',
    'beak may go from −5 to 35 deg; −6.5 deg is outside',
  ],
  ['between J1-12 and TB1-2', 'between J1-12 and TB1-2'],
  ['on 2026-11-26 at 10', 'on 2026-11-26 at 10'],
  ['channel.switch: mist rests', 'mist rests'],
  ['then reset with confirm: "desk"', 'then reset'],
  [
    'it has an error: /var/lib/sinew/prop.yaml:22:5: (file): a space is missing',
    'it has an error: prop.yaml:22:5: a space is missing',
  ],
  ['J1/12 and a/b', 'J1/12 and a/b'],
  ['Read it again (prop.read), and go on', 'Read it again, and go on'],
])('%s', (text, plain) => {
  expect(forPeople(text)).toBe(plain);
});
