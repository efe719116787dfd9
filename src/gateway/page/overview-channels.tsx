import type { ChannelInfo } from '../../api/types.ts';
import { KINDS } from './kinds.tsx';
import { Identify } from './overview-parts.tsx';
import type { ChannelProps } from './page-kind.ts';
import { Flags, Value } from './value.tsx';

/** The channels as cards, each with the controls of its kind. */
export function ChannelList({ list }: { list: [string, ChannelInfo][] }) {
  return (
    <ul class="channels">
      {list.map(([name, info]) => (
        <Channel key={name} channel={name} info={info} />
      ))}
    </ul>
  );
}

function Channel({ channel, info }: ChannelProps) {
  const { Swatch, Controls } = KINDS[info.kind];
  return (
    <li>
      <div class="line">
        <div class="title">
          <a class="name" href={`#bench/${channel}`}>
            {channel}
          </a>
          <Flags name={channel} kind={info.kind} />
        </div>
        <Identify channel={channel} />
      </div>
      <div class="row">
        {Swatch && <Swatch channel={channel} info={info} />}
        <Value name={channel} kind={info.kind} />
        <Controls channel={channel} info={info} />
      </div>
    </li>
  );
}
