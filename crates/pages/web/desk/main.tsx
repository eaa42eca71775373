// The desk: the live page of a song. Its sentence of listening, flow map and cards go here; until then it says so.
import { render } from 'preact';
import '../shared/ink.css';
import '../shared/sentence.css';

const page = document.getElementById('page');
if (page) render(<p>The desk will show the song here: what is heard, the flow map, and the card of what you choose.</p>, page);
