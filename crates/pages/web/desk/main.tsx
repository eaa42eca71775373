// The desk: the live page of a song.
import { render } from 'preact';
import '../shared/ink.css';
import '../shared/sentence.css';
import './desk.css';
import './map/map.css';
import './card/card.css';
import './blind/blind.css';
import './strip/strip.css';
import { weigh } from './card/adds.tsx';
import { giveKeysBack, onKey } from './keys.ts';
import { connect } from './link.ts';
import { Page } from './page.tsx';
import { keepGroups } from './roving.ts';
import { keepSettings } from './settings.ts';

keepSettings();
connect();
weigh();
addEventListener('keydown', onKey);
for (const kind of ['pointerdown', 'keydown', 'click', 'change']) addEventListener(kind, giveKeysBack, true);
const page = document.getElementById('page');
if (page) {
  render(<Page />, page);
  keepGroups(page);
}
