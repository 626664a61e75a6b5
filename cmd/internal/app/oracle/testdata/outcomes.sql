-- How each visit ended that was shipped. {by} is what a visit is grouped by.
SELECT {by} AS name, outcome FROM visit v JOIN unit USING (root) WHERE ending = 'shipped';
