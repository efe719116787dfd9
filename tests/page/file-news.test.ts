import { beforeEach, expect, test } from 'vitest';
import { fileNews, hideNews, newsHidden, takeNews } from '../../src/gateway/page/file-news.ts';

const waits = { changed: ['limits of beak'], pending: true as const };
const faulty = { changed: [], problem: 'owl.yaml has 1 error; mend it' };
const fine = { changed: ['mark open of beak is 28 deg'] };

beforeEach(() => {
  fileNews.value = undefined;
  newsHidden.value = false;
});

test('what is in force at once is no news', () => {
  takeNews(fine);
  expect(fileNews.value).toBeUndefined();
});

test('what waits, or is faulty, is shown, and that it is over afterwards', () => {
  takeNews(waits);
  expect(fileNews.value).toEqual({ ...waits, kind: 'waits' });
  takeNews(faulty);
  expect(fileNews.value).toEqual({ ...faulty, kind: 'problem' });
  takeNews(fine);
  expect(fileNews.value).toEqual({ ...fine, kind: 'over' });
  takeNews(fine);
  expect(fileNews.value).toBeUndefined();
});

test('a file that waits and is faulty is faulty', () => {
  takeNews({ ...waits, ...faulty });
  expect(fileNews.value?.kind).toBe('problem');
});

test('what was hidden stays hidden until there is something new', () => {
  takeNews(faulty);
  hideNews();
  expect(newsHidden.value).toBe(true);
  expect(fileNews.value?.kind).toBe('problem');
  takeNews({ ...faulty });
  expect(newsHidden.value).toBe(true);
  takeNews({ ...faulty, problem: 'owl.yaml is gone; put it back' });
  expect(newsHidden.value).toBe(false);
  hideNews();
  takeNews(fine);
  expect([fileNews.value?.kind, newsHidden.value]).toEqual(['over', false]);
  hideNews();
  expect(fileNews.value).toBeUndefined();
});

test('what comes while this page moves the prop does not open by itself', () => {
  takeNews(faulty, true);
  expect([fileNews.value?.kind, newsHidden.value]).toEqual(['problem', true]);
  newsHidden.value = false;
  takeNews({ ...faulty }, true);
  expect(newsHidden.value).toBe(false);
  takeNews(fine, true);
  expect([fileNews.value?.kind, newsHidden.value]).toEqual(['over', true]);
});
