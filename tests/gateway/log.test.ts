import { expect, it } from 'vitest';
import { makeLog } from '../../src/gateway/log.ts';

it('leaves out what is below its level, and makes an error fit to be sent', () => {
  const lines: [string, object, string][] = [];
  const log = makeLog('warn', (...line) => lines.push(line));
  log.debug({}, 'a');
  log.info({}, 'b');
  log.warn({ from: '127.0.0.1', n: 3 }, 'c');
  log.error({ err: new RangeError('too far'), what: () => {} }, 'd');
  expect(lines).toEqual([
    ['warn', { from: '127.0.0.1', n: 3 }, 'c'],
    [
      'error',
      {
        err: { type: 'RangeError', message: 'too far', stack: expect.stringContaining('log.test') },
        what: expect.any(String),
      },
      'd',
    ],
  ]);
  expect(() => structuredClone(lines)).not.toThrow();
});

it('is silent at a level that is none', () => {
  const log = makeLog('silent', () => expect.unreachable());
  log.error({}, 'a');
});
