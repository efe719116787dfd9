import { expect } from 'vitest';
import type { ChannelInfo } from '../../src/api/types.ts';
import { parseProp } from '../../src/prop/load.ts';
import { ViewMaker } from '../../src/service/view.ts';

/** The channels of a prop file as a page gets them, before their first state. */
export function channelInfos(text: string): Record<string, ChannelInfo> {
  const { prop, findings } = parseProp(text, 'a.yaml');
  expect(findings.filter(({ severity }) => severity === 'error')).toEqual([]);
  const { info } = new ViewMaker().view(prop!, 'v');
  return Object.fromEntries(
    Object.entries(info).map(([name, one]) => [
      name,
      { ...one, value: null, target: 0, flags: [] },
    ]),
  );
}
