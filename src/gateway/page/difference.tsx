import './difference.css';
import type { Result } from '../../api/methods.ts';

type Lines = Pick<Result<'prop.difference'>, 'hunks' | 'more' | 'unlike'>;

const SIGNS = { same: ' ', gone: '−', new: '+' };
const SPOKEN = { same: '', gone: 'goes: ', new: 'comes: ' };

/** Lines that go and come, with a few around them: by sign and word, not by colour alone. */
export function Difference({ of: { hunks, more, unlike }, label }: { of: Lines; label: string }) {
  if (unlike)
    return <p>The two have so little in common that they cannot be compared line by line.</p>;
  if (hunks.length === 0) return <p>No line differs.</p>;
  return (
    // biome-ignore lint/a11y/noNoninteractiveTabindex: what scrolls must be within reach of the keyboard
    <section class="difference" aria-label={label} tabIndex={0}>
      {hunks.map(({ from, lines }) => (
        <div key={from}>
          <p class="hint">Line {from}</p>
          <ol>
            {lines.map(({ is, text }, at) => (
              <li key={`${at} ${text}`} class={`is-${is}`}>
                <span class="sign" aria-hidden="true">
                  {SIGNS[is]}
                </span>
                <span class="unseen">{SPOKEN[is]}</span>
                <code>{text}</code>
              </li>
            ))}
          </ol>
        </div>
      ))}
      {more > 0 && <p>and {more} more lines</p>}
    </section>
  );
}
