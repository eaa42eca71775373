// Makes a page one file: a page opened from disk may not load modules or styles from beside it.
import type { Plugin } from 'vite';

/** Puts the page's one script and one style into its HTML and leaves no other file. */
export function inline(): Plugin {
  return {
    name: 'inline',
    enforce: 'post',
    generateBundle(_options, bundle) {
      const page = bundle['index.html'];
      if (page?.type !== 'asset') throw new Error('the page has no index.html');
      let html = String(page.source);
      for (const [name, part] of Object.entries(bundle)) {
        if (part === page) continue;
        const tag = tagOf(html, name);
        html = html.replace(tag, () => elementOf(name, part.type === 'chunk' ? part.code : String(part.source)));
        delete bundle[name];
      }
      page.source = html;
    },
  };
}

/** The element that names a file. */
function tagOf(html: string, name: string): string {
  const tags = html.match(/<script[^>]*><\/script>|<link[^>]*>/g) ?? [];
  const tag = tags.find((candidate) => candidate.includes(name));
  if (tag === undefined) throw new Error(`the page does not name ${name}`);
  return tag;
}

/** The same as an element that holds the file. No text of ours may end the element early. */
function elementOf(name: string, text: string): string {
  if (name.endsWith('.css')) return `<style>${text.replaceAll('</style', '<\\/style')}</style>`;
  if (name.endsWith('.js')) return `<script type="module">${text.replaceAll('</script', '<\\/script')}</script>`;
  throw new Error(`${name} cannot stand in a page of one file`);
}
