import { render } from 'preact';
import '../shared/ink.css';
import '../shared/sentence.css';
import './listening.css';
import { Listening } from './Listening';
import { takeSong } from './song';
import { pageOf } from './state';

const place = document.getElementById('page');
const song = takeSong();
if (place && song) {
  document.title = `${song.title}, ${song.revision}`;
  place.replaceChildren();
  render(<Listening page={pageOf(song)} />, place);
} else if (place) {
  place.replaceChildren();
  render(<p class="bare">This page has no song in it. `fairprint listen` writes one that has.</p>, place);
}
