import type { FileFinding } from '../../api/types.ts';
import { fileNews, hideNews, newsHidden, type Shown } from './file-news.ts';
import { forPeople } from './for-people.ts';

const TITLES: Record<Shown['kind'], string> = {
  waits: 'A change of the prop file waits until the prop is parked',
  problem: 'The prop file on the disk is not in use',
  over: 'The prop file is in use',
};

/** Where the prop file on the disk and the prop differ: what waits, or what is wrong and what to do. */
export function FileBanner() {
  const news = fileNews.value;
  return (
    <div role="status" class="file-place">
      {news && (newsHidden.value ? <Sign news={news} /> : <Banner news={news} />)}
    </div>
  );
}

function Banner({ news }: { news: Shown }) {
  const { kind, problem, findings = [], changed } = news;
  return (
    <section class={`file-news is-${kind}`} aria-labelledby="file-news">
      <div class="file-head">
        <h2 id="file-news">{TITLES[kind]}</h2>
        <button type="button" aria-label="Hide this notice about the prop file" onClick={hideNews}>
          Hide
        </button>
      </div>
      {kind === 'problem' && (
        <>
          <p>{forPeople(problem ?? '')}</p>
          <p>
            The prop keeps the version before. Nothing of what you changed is lost.{' '}
            <a href="#setup/file">Look at it, correct it, or go back</a>
          </p>
        </>
      )}
      {kind === 'waits' && <p>Until then the prop keeps the version before.</p>}
      {findings.length > 0 && (
        // biome-ignore lint/a11y/noNoninteractiveTabindex: what scrolls must be within reach of the keyboard
        <ul class="file-findings" tabIndex={0}>
          {findings.map((finding) => (
            <FindingLine
              key={`${finding.line}:${finding.column} ${finding.message}`}
              of={finding}
            />
          ))}
        </ul>
      )}
      {changed.length > 0 && (
        <>
          <p class="hint">{CHANGED[kind]}</p>
          {/* biome-ignore lint/a11y/noNoninteractiveTabindex: what scrolls must be within reach of the keyboard */}
          <ul class="file-changes" tabIndex={0}>
            {changed.map((one) => (
              <li key={one}>{one}</li>
            ))}
          </ul>
        </>
      )}
    </section>
  );
}

const CHANGED: Record<Shown['kind'], string> = {
  waits: 'What waits:',
  problem: 'What the file on the disk would change:',
  over: 'What has changed:',
};

function FindingLine({ of: { level, line, column, path, message } }: { of: FileFinding }) {
  return (
    <li>
      <b class="number">
        {level === 'error' ? '' : `${level}, `}line {line}, column {column}
      </b>{' '}
      <span class="path">{path}</span>: {message}
    </li>
  );
}

const SIGNS: Record<Shown['kind'], string> = {
  waits: 'The file waits',
  problem: 'The file is not in use',
  over: 'The file is in use',
};

/** Opens what was put aside, or came while this page moved the prop. It moves nothing on the page. */
function Sign({ news: { kind } }: { news: Shown }) {
  return (
    <button
      type="button"
      class={`file-sign is-${kind}`}
      onClick={() => {
        newsHidden.value = false;
        scrollTo({ top: 0 });
      }}
    >
      {kind === 'problem' && <span aria-hidden="true">! </span>}
      {SIGNS[kind]}
    </button>
  );
}
