import { render } from 'preact';
import '../shared/ink.css';
import '../shared/sentence.css';

const page = document.getElementById('page');
if (page) render(<p>The listening page of a song: its title, its versions, and a place to write.</p>, page);
